"""The level of the header tank in time, with its limits and the tank beside it.

One drawing for the panel and for still pictures: a template, and the values of a record. The tank
and the curve share one scale, so that a glance from one to the other needs no reading.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import TYPE_CHECKING

import numpy as np

from labkit.wording import percent
from lessons.pictures.charts import nice_step, ticks_beside, ticks_of, upright_words
from lessons.pictures.geometry import Box
from lessons.pictures.slots import Values, filled, slot
from lessons.pictures.svg import document, line, rectangle, text, text_width

if TYPE_CHECKING:
    from labkit.plant.tank_data import TankSettings
    from labkit.rig.rig import RigView, Trend

WIDTH = 900.0
HEIGHT = 172.0
WINDOWS_S = (60, 120, 300, 600, 1800)
COLUMNS = 100
PIECES = 6
FLAGS = 6
SMALL = 14.0


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
    end = next((width for width in WINDOWS_S if now_s <= width), now_s)
    return max(0.0, float(end - WINDOWS_S[-1])), float(end)


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


def level_alt_text(trend: Trend, tank: TankSettings) -> str:
    """Say in at most 60 words what the level picture shows.

    >>> from labkit import Rig
    >>> level_alt_text(Rig().trend(), Rig().view().tank)[:50]
    'Line chart of the level of the header tank [m] ove'
    """
    time_s, level_m = trend.time_s, trend.level_m
    last, low, high = level_m[-1], level_m.min(), level_m.max()
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


class LevelChart:
    """Draw the level within a box: what stays is the template, what moves are values.

    >>> from labkit import Rig
    >>> LevelChart(Box(0, 0, 500, 140), Rig().view().tank).values(Rig().trend())["lv.now"]
    '1.20 m'
    """

    def __init__(self, box: Box, tank: TankSettings):
        self.box, self.tank = box, tank
        self.rows = 2 if box.height >= HEIGHT else 1
        self.wide = box.width > 420
        self.left, self.right = box.x + 46, box.right - (172 if self.wide else 132)
        self.pieces = PIECES if self.wide else PIECES // 2
        self.top, self.bottom = box.y + 6 + 16 * self.rows, box.bottom - 20
        span = tank.overflow_m - tank.low_trip_m
        # Beyond both limits there is room for their names, however flat the chart is.
        named = 19 / (self.bottom - self.top - 38)
        self.low = tank.low_trip_m - span * max(0.15, named)
        self.high = tank.overflow_m + span * max(0.2, named)
        self.limits = ((tank.overflow_m, "overflow", "limit"), (tank.low_trip_m, "low trip", "limit"),
                       (tank.set_point_m, "set-point", "aim"))
        self.limit_room = max(text_width(self._limit_words(i), SMALL) for i in range(3))

    def y(self, level: float) -> float:
        """Return the height of a level; beyond the scale, its rim."""
        return self._heights(np.array([level]))[0]

    def _heights(self, level_m: np.ndarray) -> list[float]:
        share = (np.clip(level_m, self.low, self.high) - self.low) / (self.high - self.low)
        return np.round(self.bottom - share * (self.bottom - self.top), 1).tolist()

    def _x(self, time_s, window: tuple[float, float]):
        start, end = window
        return self.left + (time_s - start) / (end - start) * (self.right - self.left)

    def _limit_words(self, number: int) -> str:
        level, words, _ = self.limits[number]
        return f"{words} {level:.2f} m" if self.wide else words

    def _sides(self, number: int) -> tuple[float, float]:
        """Return where the words of a limit may stand: above its line, or below."""
        y = self.y(self.limits[number][0])
        return y - 4, y + 15

    def _limit_places(self, time_s: np.ndarray, level_m: np.ndarray,
                      window: tuple[float, float]) -> Values:
        """Let the words of each limit stand where neither those of another one nor the curve are."""
        at = np.interp(np.linspace(self.right - 6 - self.limit_room, self.right - 6, 30),
                       (self.left, self.right), window)
        curve = self._heights(np.interp(at[at <= time_s[-1]], time_s, level_m))
        best = min(product(*map(self._sides, range(len(self.limits)))), key=lambda places: (
            any(abs(one - other) < 16 for one, other in combinations(places, 2)),
            sum(y - 12.5 < each < y + 4.5 for y in places for each in curve)))
        return {f"lv.limit{i}@y": f"{y:g}" for i, y in enumerate(best)}

    def template(self) -> str:
        """Return what stays: axes, limits, tank, and the empty slots."""
        left, right, top, bottom = self.left, self.right, self.top, self.bottom
        parts = [rectangle(left, top, right - left, bottom - top, "frame", 0)]
        parts += ticks_beside(
            ((self.y(level), f"{level:.1f}") for level in ticks_of(
                self.low, self.high, nice_step(self.high - self.low, 5 if self.rows > 1 else 3))),
            left, right, size=SMALL)
        for i in range(self.pieces + 1):
            x = left + (right - left) * i / self.pieces
            parts.append(line([(x, top), (x, bottom)], "grid"))
            parts.append(slot("text", f"lv.x{i}", class_="q", x=x, y=bottom + 15,
                              style=f"font-size:{SMALL:g}px", text_anchor="middle"))
        parts.append(upright_words(self.box.x + 11, (top + bottom) / 2, "level [m]"))
        for i, (level, _, kind) in enumerate(self.limits):
            parts.append(line([(left, self.y(level)), (right, self.y(level))], kind))
            parts.append(slot("text", f"lv.limit{i}", self._limit_words(i), class_="q over",
                              x=right - 6, y=self._sides(i)[0], style=f"font-size:{SMALL:g}px",
                              text_anchor="end"))
        # One piece for all: after many switches they were most of the picture.
        parts.append(slot("path", "lv.stems", class_="event", d=""))
        parts += [slot("text", f"lv.flag{i}", class_="f over", x=0, y=0,
                       style=f"font-size:{SMALL:g}px") for i in range(FLAGS)]
        parts.append(slot("polyline", "lv.curve", class_="curve", points=""))
        parts.append(slot("circle", "lv.dot", class_="now", cx=0, cy=0, r=4.5))
        x, width = (right + 18, 50.0) if self.wide else (right + 10, 32.0)
        parts.append(slot("rect", "lv.water", class_="water", x=x, y=bottom, width=width,
                          height=0))
        parts.append(line([(x, top), (x, bottom), (x + width, bottom), (x + width, top)], "wall", 0))
        parts += [line([(x, self.y(level)), (x + width, self.y(level))], kind)
                  for level, _, kind in self.limits]
        aside = x + width + 9
        parts.append(slot("text", "lv.now", class_="b", x=aside, y=top + 19,
                          style="font-size:20px"))
        for i, name in enumerate(("state", "valve", "in")):
            parts.append(slot("text", f"lv.{name}", x=aside, y=top + 38 + 18 * i,
                              style=f"font-size:{SMALL + 0.5:g}px"))
        return "".join(parts)

    def values(self, trend: Trend, marks: Sequence[Mark] = ()) -> Values:
        """Return what moves, at the end of a record; of flows that it does not hold nothing is said."""
        now_s, now = trend.time_s[-1], trend.level_m[-1]
        window = start, end = window_s(now_s)
        unit_s, unit = (60, "min") if end - start > 600 else (1, "s")
        values = {}
        for i in range(self.pieces + 1):
            at = (start + (end - start) * i / self.pieces) / unit_s
            values[f"lv.x{i}"] = f"{at:.0f} {unit}" if i == self.pieces else f"{at:.0f}"
        seen = trend.time_s >= start
        times, levels = trend.time_s[seen], trend.level_m[seen]
        values["lv.curve@points"] = self.points(*_thinned(times, levels), window)
        values |= self._limit_places(times, levels, window)
        values |= {
            "lv.dot@cx": f"{self._x(now_s, window):.1f}",
            "lv.dot@cy": f"{self.y(now):g}",
            "lv.water@y": f"{self.y(now):g}",
            "lv.water@height": f"{self.bottom - self.y(now):.1f}",
            "lv.now": f"{now:.2f} m",
            "lv.state": "overflows" if now >= self.tank.overflow_m else
                           "too low" if now <= self.tank.low_trip_m else "level",
            "lv.valve": f"valve {percent(trend.opening[-1])}" if len(trend.opening) else "",
            "lv.in": f"in {trend.inflow_l_per_s[-1]:.0f} L/s" if len(trend.inflow_l_per_s) else "",
        }
        values["lv.state@"] = "q" if values["lv.state"] == "level" else "f b"
        return values | self._flags(marks, window)

    def points(self, time_s: Sequence[float], level_m: Sequence[float],
               window: tuple[float, float]) -> str:
        """Return a curve as the points of a line."""
        x, y = self._x(np.asarray(time_s), window).tolist(), self._heights(np.asarray(level_m))
        # A level piece needs its ends only.
        return " ".join(f"{x[i]:.0f},{y[i]:g}" for i in range(len(x))
                        if not 0 < i < len(x) - 1 or not y[i - 1] == y[i] == y[i + 1])

    def _flags(self, marks: Sequence[Mark], window: tuple[float, float]) -> Values:
        """Mark what happened; words stand where there is room, those of the latest first."""
        marks = sorted(marks, key=lambda mark: mark.time_s)
        taken: list[list[tuple[float, float]]] = [[] for _ in range(self.rows)]
        words: dict[int, tuple[float, float, str]] = {}
        widths = {said: text_width(said, SMALL) for said in {mark.words for mark in marks}}
        stems = []
        drawn: set[int] = set()
        for number, mark in reversed([*enumerate(marks)]):
            if not window[0] <= mark.time_s <= window[1]:
                continue
            at = float(self._x(mark.time_s, window))
            # Of several on one spot the latest is seen.
            if round(at / 2) in drawn:
                continue
            drawn.add(round(at / 2))
            width = widths[mark.words]
            x = min(at + 5, self.right - width)
            # A mark keeps its slot while others come and go.
            row = next((row for row, spans in enumerate(taken) if number % FLAGS not in words and all(
                x + width + 8 < low or x > high + 8 for low, high in spans)), None)
            if row is not None:
                taken[row].append((x, x + width))
                words[number % FLAGS] = (x, self.top - 4 - 16 * row, mark.words)
            high = self.top - (2 if row is None else 10 + 16 * row)
            stems.append(f"M{at:.0f},{high:.0f}V{self.bottom:.0f}")
        values = {"lv.stems@d": "".join(stems), **{f"lv.flag{i}": "" for i in range(FLAGS)}}
        for i, (x, y, said) in words.items():
            values |= {f"lv.flag{i}": said, f"lv.flag{i}@x": f"{x:.0f}", f"lv.flag{i}@y": f"{y:.0f}"}
        return values


def level_svg(trend: Trend, tank: TankSettings, *, marks: Sequence[Mark] = (), name: str = "",
              beside: tuple[str, Trend] | None = None, height: float = HEIGHT) -> str:
    """Draw the level of the header tank in time, and the tank, as a still picture.

    Parameters
    ----------
    trend : Trend
        The record; what is left of flows is written beside the tank.
    tank : TankSettings
        Its limits are drawn.
    marks : sequence of Mark
        What happened; marks outside the time shown are left out.
    name : str
        What the curve is, where another one stands beside it.
    beside : tuple of str and Trend, optional
        Another curve and its name, drawn dashed.
    height : float
        Of the picture, whose width is 900.

    >>> from labkit import Rig
    >>> level_svg(Rig().trend(), Rig().view().tank).count("<svg")
    1
    """
    chart = LevelChart(Box(0, 0, WIDTH, height), tank)
    parts = [filled(chart.template(), chart.values(trend, marks))]
    if beside:
        words, other = beside
        points = chart.points(*_thinned(other.time_s, other.level_m), window_s(trend.time_s[-1]))
        parts.append(f'<polyline points="{points}" class="curve-2"/>')
        parts.append(text(chart.left + 12, chart.bottom - 8, f"line: {name}; dashed: {words}",
                          "b over"))
    return document(parts, WIDTH, height, level_alt_text(trend, tank))


def marks_of(view: RigView) -> list[Mark]:
    """Return what was done by hand in the time that the trend shows, as its marks."""
    begin = bisect_left(view.record, 1000 * window_s(view.snapshot.time_ms / 1000)[0],
                        key=lambda entry: entry.time_ms)
    return [Mark(entry.time_ms / 1000, entry.who if entry.new == "on" else f"{entry.who} over")
            for entry in view.record[begin:] if entry.what == "fault"]


def level_picture(view: RigView, **how) -> str:
    """Draw the level of a rig in time, with its faults as marks; empty without a tank.

    >>> from labkit import Rig
    >>> level_picture(Rig().view()).count("<svg")
    1
    """
    if view.trend is None or view.tank is None:
        return ""
    return level_svg(view.trend, view.tank, marks=marks_of(view), **how)
