"""The chance of a dead standby from test to test, as saw teeth."""

import numpy as np

from labkit.markov.latent import LatentFaults
from lessons.pictures.charts import along, nice_step, ticks_beside, ticks_of
from lessons.pictures.svg import document, line, text

WIDTH, HEIGHT = 900.0, 272.0
LEFT, RIGHT, TOP, BOTTOM = 74.0, 880.0, 44.0, 246.0
SHOWN_INTERVALS = 3


def latent_alt_text(found: LatentFaults) -> str:
    """Say in at most 60 words what the picture shows."""
    return (
        f"Saw teeth over {SHOWN_INTERVALS} test intervals of {found.weeks}. "
        f"The chance that the standby is dead and nobody knows climbs from 0 to "
        f"{found.asleep(found.dead[-1])} and falls back at each test. A dotted line marks the mean, "
        f"{found.asleep(found.mean_dead)}."
    )


def latent_svg(found: LatentFaults, *, beside: tuple[str, LatentFaults] | None = None) -> str:
    """Draw the chance of a dead standby from test to test, and dashed another one by its name."""
    span_h = SHOWN_INTERVALS * found.interval_h

    def teeth(of: LatentFaults) -> list[tuple[float, float]]:
        starts = np.arange(0.0, span_h, of.interval_h)
        points = [(start + t, p) for start in starts
                  for t, p in zip(of.time_h, of.dead, strict=True) if start + t <= span_h]
        return points + [(span_h, 0.0)] * bool(points[-1][0] >= span_h)

    shown = [teeth(found), *([teeth(beside[1])] if beside else [])]
    most = max(1e-6, *(p for each in shown for _, p in each))
    step = nice_step(100 * most, 4) / 100
    top = step * (int(most / step) + 1)
    x, y = along(0, span_h, LEFT, RIGHT), along(0, top, BOTTOM, TOP)
    curves = [[(x(t), y(p)) for t, p in each] for each in shown]
    parts = [text(LEFT, 22, "Chance that the standby is dead and nobody knows [%]", "b", size=16)]
    parts += ticks_beside(((y(share), f"{100 * share:.3g}")
                           for share in ticks_of(0, top, step)), LEFT, RIGHT)
    for test in range(1, SHOWN_INTERVALS + 1):
        at, week = x(test * found.interval_h), test * found.interval_h / 168
        parts.append(line([(at, TOP), (at, BOTTOM)], "event"))
        parts.append(text(at - 6, BOTTOM + 18, f"test, week {week:.0f}", size=14, anchor="end"))
    parts.append(line(curves[0], "curve", 0))
    mean = y(found.mean_dead)
    parts.append(line([(LEFT, mean), (RIGHT, mean)], "aim"))
    parts.append(text(LEFT + 8, mean - 6, f"mean {found.asleep(found.mean_dead)}", "b over"))
    if beside:
        parts.append(line(curves[1], "curve-2", 0))
        words = f"dashed: {beside[0]}, mean {beside[1].asleep(beside[1].mean_dead)}"
        parts.append(text(RIGHT, 22, words, anchor="end"))
    return document(parts, WIDTH, HEIGHT, latent_alt_text(found))
