"""The pair's flaws, one at a time: what each of them makes of the down time and the outages."""

import math

from labkit.markov.flaws import FlawRow, Flaws, flaw_rows, years_in_words
from lessons.pictures.charts import axis_words, ticks_below
from lessons.pictures.svg import document, line, text

WIDTH, HEIGHT = 900.0, 330.0
LEFT, RIGHT, TOP, STEP = 196.0, 640.0, 52.0, 36.0
# Decades of minutes a year on the scale.
LOW, HIGH = -3, 4
AXIS = TOP + 6 * STEP + 4


def _x(minutes: float) -> float:
    place = (math.log10(minutes) - LOW) / (HIGH - LOW)
    return LEFT + min(max(place, 0.004), 1.0) * (RIGHT - LEFT)


def flaws_alt_text(flaws: Flaws) -> str:
    """Say in at most 60 words what the picture shows."""
    said = ", ".join(f"{row.name} {row.down_min_per_a:.3g}" for row in flaw_rows(flaws))
    return ("Dots of down time in minutes a year, scale in powers of ten from 0.001 to 10 000: "
            f"{said}.")


def flaws_svg(flaws: Flaws) -> str:
    """Draw the down time of each version as a dot, with its outages in words.

    A scale of powers of ten has no zero, so that the length of a bar would say nothing.
    """
    parts = [text(LEFT, 24, "Down time, min a year", "b", size=17),
             text(RIGHT + 16, 24, "min a year", "b"),
             text(WIDTH - 8, 24, "one outage in", "b", anchor="end")]
    decades = [(LEFT + (decade - LOW) / (HIGH - LOW) * (RIGHT - LEFT),
                f"{10.0**decade:g}" if decade < 4 else "10 000")
               for decade in range(LOW, HIGH + 1)]
    parts += ticks_below(decades, TOP - 14, AXIS)
    parts.append(axis_words(LEFT, RIGHT, AXIS + 40,
                            "min a year; each step of the scale is ten times the one before"))
    for place, row in enumerate(flaw_rows(flaws)):
        parts += _dot(row, TOP + place * STEP, here=place == 5)
    return document(parts, WIDTH, HEIGHT, flaws_alt_text(flaws))


def _dot(row: FlawRow, y: float, *, here: bool) -> list[str]:
    strong = "b" if here else ""
    kind = "now" if here or row.name == "one controller" else "eventhead"
    return [
        text(LEFT - 10, y + 7, row.name, strong, anchor="end"),
        line([(LEFT, y + 2), (RIGHT, y + 2)], "grid"),
        f'<circle cx="{_x(row.down_min_per_a):.1f}" cy="{y + 2:.1f}" r="8" class="{kind}"/>',
        text(RIGHT + 16, y + 7, f"{row.down_min_per_a:.3g}", strong),
        text(WIDTH - 8, y + 7, years_in_words(row.years_between), strong, anchor="end"),
    ]
