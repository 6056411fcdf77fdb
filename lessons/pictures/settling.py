"""Two states in time: drawn histories, the share of them that is down, and the exact U(t)."""

import math
from dataclasses import dataclass

import numpy as np

from labkit.arguments import count
from labkit.evidence.limits import Limits, success_limits
from labkit.markov.chain import MarkovModel, two_state
from labkit.simulation.histories import Span, chain_history
from labkit.wording import grouped, shown
from lessons.pictures.charts import (
    along,
    axis_words,
    nice_step,
    ticks_beside,
    ticks_of,
    upright_words,
)
from lessons.pictures.svg import document, line, rectangle, text

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


@dataclass(frozen=True)
class Histories:
    """Hold lives of one repairable unit, each drawn by itself, and the chain they come from."""

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
        """Time in hours from which on U(t) differs from its long run by less than 5 % of it."""
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
         starts_down: bool = False, seed: int = 1) -> Histories:
    """Draw lives of one repairable unit."""
    count("lives", lives, least=1)
    empty = Histories(mtbf_h, mttr_h, window_h, starts_down, ())
    model, source = empty.model, np.random.default_rng(seed)
    outages = tuple(chain_history(model, window_h, source).outages for _ in range(lives))
    return Histories(mtbf_h, mttr_h, window_h, starts_down, outages)


def _held(lives: Histories) -> int:
    """Count the looks at which the exact value lies inside the limits of the drawn lives."""
    looks = lives.looks_h()
    exact = lives.model.unavailability_at(np.array(looks))
    found = [lives.counted(t_h) for t_h in looks]
    return sum(each.lower <= u <= each.upper for each, u in zip(found, exact, strict=True))


def _number(hours: float) -> str:
    """Write hours with at most four digits, and no power of ten."""
    return grouped(hours) if hours >= 999.5 else f"{hours:.3g}"


def two_states_alt_text(lives: Histories) -> str:
    """Say in at most 60 words what the picture shows."""
    model = lives.model
    begin = float(model.unavailability_at(0.0))
    return (
        f"Up to {SHOWN} drawn histories over 0 to {_number(lives.window_h)} h. Below, U(t) from "
        f"{begin:.0f} to its long run {model.unavailability:.3g}, within 5 % from "
        f"{_number(lives.near_h)} h on, beside the share of {len(lives.outages)} histories that "
        f"is down. Last, their difference: {_held(lives)} of {LOOKS} intervals hold the exact "
        "value."
    )


def settling_verdict(lives: Histories) -> str:
    """Say the long run, and from when on U(t) stays at it."""
    return (f"Long run U = {lives.model.unavailability:.3g}. From {_number(lives.near_h)} h on "
            "U(t) is within 5 % of it.")


def two_states_text(lives: Histories) -> str:
    """Say in text all that the picture shows."""
    model = lives.model
    start = "down" if lives.starts_down else "up"
    lines = [
        f"MTBF {_number(lives.mtbf_h)} h, MTTR {_number(lives.mttr_h)} h, start: all {start}; "
        f"{len(lives.outages)} histories of {_number(lives.window_h)} h.",
        settling_verdict(lives),
    ]
    looks = lives.looks_h()
    for t_h, exact in zip(looks, model.unavailability_at(np.array(looks)), strict=True):
        found = lives.counted(t_h)
        holds = "holds" if found.lower <= exact <= found.upper else "misses"
        lines.append(
            f"t = {_number(t_h)} h: U exact {exact:.3g}; drawn {found.point:.3g}, 95 % interval "
            f"{found.lower:.3g} to {found.upper:.3g} {holds} it"
        )
    return "\n".join([*lines, f"{_held(lives)} of {LOOKS} intervals hold the exact value."])


def two_states_svg(lives: Histories) -> str:
    """Draw histories, U(t) by the chain and by counting, and the difference of both."""
    window_h, model = lives.window_h, lives.model

    def x(t_h: float) -> float:
        return LEFT + min(t_h / window_h, 1.0) * (RIGHT - LEFT)

    looks = lives.looks_h()
    found = [lives.counted(t_h) for t_h in looks]
    exact = model.unavailability_at(np.array(looks))
    frames = [(CURVE_TOP, CURVE_BOTTOM), (DIFF_TOP, DIFF_BOTTOM)]
    parts = [*_histories(lives, x), *_time_axis(lives, x, frames)]
    parts += _curve(lives, x, found, *frames[0])
    parts += _difference(x, looks, exact, found)
    return document(parts, WIDTH, HEIGHT, two_states_alt_text(lives))


def settling_svg(lives: Histories) -> str:
    """Draw U(t) by the chain alone, and its long run."""
    x = along(0, lives.window_h, LEFT, RIGHT)
    frame = (46.0, 420.0)
    parts = [*_time_axis(lives, x, [frame]), *_curve(lives, x, [], *frame)]
    return document(parts, WIDTH, 470, settling_alt_text(lives))


def settling_alt_text(lives: Histories) -> str:
    """Say in at most 60 words what the picture of U(t) alone shows."""
    return (
        f"Line chart: unavailability over time [h] of a part with MTBF {grouped(lives.mtbf_h)} h "
        f"and MTTR {lives.mttr_h:g} h. It rises from zero, is within 5 % of its long run, "
        f"{lives.model.unavailability:.3e}, from {_number(lives.near_h)} h on, and stays there."
    )


def _histories(lives: Histories, x) -> list[str]:
    drawn = lives.outages[:SHOWN]
    parts = [text(LEFT, 20, f"{len(drawn)} of {len(lives.outages)} histories: thin line up, "
                            "block down", "b")]
    for number, spans in enumerate(drawn):
        y = ROWS_TOP + ROW * (number + 0.5)
        parts.append(text(LEFT - 8, y + 5, str(number + 1), "q", size=14, anchor="end"))
        parts.append(line([(LEFT, y), (RIGHT, y)], "idle"))
        for span in spans:
            left, right = x(span.begin_h), x(span.end_h)
            # A short outage stays in sight: it is at least as wide as a thick line.
            parts.append(rectangle(left, y - 5.5, right - left, 11, "tag", 1) if right > left + 5
                         else line([(left, y - 6), (left, y + 6)], "mark"))
    return parts


def _time_axis(lives: Histories, x, frames: list[tuple[float, float]]) -> list[str]:
    step = nice_step(lives.window_h, 6)
    bottom = frames[-1][1]
    parts = [axis_words(LEFT, RIGHT, bottom + 40, "time since the start [h]")]
    for time_h in ticks_of(0, lives.window_h, step):
        parts += [line([(x(time_h), top), (x(time_h), end)], "grid") for top, end in frames]
        parts.append(text(x(time_h), bottom + 19, shown(time_h), "q", size=14, anchor="middle"))
    return parts


def _marks(lives: Histories, x, top: float, bottom: float) -> tuple[list[str], list[str]]:
    """Return the lines below the curve, and the words above it."""
    times = ((lives.near_h, "5 % from the long run"), (lives.mtbf_h, "MTBF"),
             (lives.mttr_h, "MTTR"))
    marks = [(x(at_h), words) for at_h, words in times if at_h <= lives.window_h]
    lines, said = [], []
    for row, (at, words) in enumerate(marks):
        # The words stand to the right of their mark, if they do not cross another one there;
        # and never beside the picture, where the numbers of the axis are.
        length = 10 + 7.5 * len(words)
        crosses = any(at < other < at + length for other, _ in marks)
        left = at + length > RIGHT or (crosses and at - length > LEFT)
        lines.append(line([(at, top - 8), (at, bottom)], "limit"))
        said.append(text(at + (-5 if left else 5), top + 14 + 18 * row, words,
                         "f over", size=14, anchor="end" if left else "start"))
    return lines, said


def _curve(lives: Histories, x, found: list[Limits], top: float, bottom: float) -> list[str]:
    model, window_h = lives.model, lives.window_h
    t_h = np.linspace(0.0, window_h, 161)
    exact = model.unavailability_at(t_h)
    most = 1.1 * max(float(exact.max()), *(each.upper for each in found), 0.0)

    y = along(0, most, bottom, top)
    marks, said = _marks(lives, x, top, bottom)
    parts = [*marks, *_share_axis(top, bottom, 0.0, most, "U(t), share down")]
    parts.append(line([(LEFT, y(model.unavailability)), (RIGHT, y(model.unavailability))], "aim"))
    parts.append(text(RIGHT, top - 14, f"dots: long run {model.unavailability:.3g}", "b",
                      anchor="end"))
    points = " ".join(f"{x(t):.1f},{y(u):.1f}" for t, u in zip(t_h, exact, strict=True))
    parts.append(f'<polyline points="{points}" class="curve"/>')
    for at_h, each in zip(lives.looks_h(), found):
        parts += _bar(x(at_h), y(each.point), y(each.lower), y(each.upper))
    counted = f"; squares: counted in {len(lives.outages)} histories; bars: 95 % interval"
    parts.append(text(LEFT, top - 14, f"line: exact{counted if found else ''}", "b"))
    return parts + said


def _difference(x, looks, exact, found: list[Limits]) -> list[str]:
    lows = [each.lower - u for each, u in zip(found, exact, strict=True)]
    highs = [each.upper - u for each, u in zip(found, exact, strict=True)]
    most = 1.1 * max(*map(abs, lows), *map(abs, highs))
    y = along(-most, most, DIFF_BOTTOM, DIFF_TOP)
    parts = _share_axis(DIFF_TOP, DIFF_BOTTOM, -most, most, "difference")
    parts.append(line([(LEFT, y(0)), (RIGHT, y(0))], "curve"))
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
    y = along(low, high, bottom, top)
    parts += ticks_beside(((y(share), f"{share:.3g}") for share in ticks_of(
        low, high, nice_step(high - low, 5))), LEFT, RIGHT)
    return [*parts, upright_words(20, (top + bottom) / 2, words)]
