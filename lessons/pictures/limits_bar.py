"""What a count of failures proves: the limits of an MTBF, while years and failures are moved."""

import math

from labkit.arguments import count, positive
from labkit.evidence.limits import Limits, mtbf_limits
from labkit.wording import HOURS_PER_YEAR, capital, grouped
from lessons.pictures.charts import ticks_below
from lessons.pictures.svg import document, line, rectangle, text, text_width

WIDTH, HEIGHT = 900.0, 206.0
LEFT, RIGHT, TOP, BOTTOM = 40.0, 860.0, 44.0, 176.0
# Decades of hours on the scale.
LOW, HIGH = 2, 8
DECADES = {2: "100 h", 3: "1000 h", 4: "10 000 h", 5: "100 000 h", 6: "1 million h",
           7: "10 million h"}
UNITS, CLAIM_H = 2, 60_000.0


def _x(hours: float) -> float:
    place = (math.log10(hours) - LOW) / (HIGH - LOW)
    return LEFT + min(max(place, 0.0), 1.0) * (RIGHT - LEFT)


def _grouped(hours: float) -> str:
    return grouped(float(f"{hours:.4g}"))


def _limits(years: float, failures: int) -> Limits:
    positive("years", years)
    return mtbf_limits(UNITS * years * HOURS_PER_YEAR, count("failures", failures))


def _verdict(limits: Limits) -> str:
    return ("the records are better" if CLAIM_H < limits.lower else
            "the records speak against it" if CLAIM_H > limits.upper else
            "neither proved nor disproved")


def limits_alt_text(years: float, failures: int) -> str:
    """Say in at most 60 words what the picture shows."""
    limits = _limits(years, failures)
    upper = f"to {_grouped(limits.upper)} h" if failures else "without an upper limit"
    mean = f", mean {_grouped(limits.point)} h" if failures else ""
    return (
        f"A bar on a scale of hours: two units, {years:g} year{'s' if years != 1 else ''}, "
        f"{failures} failure{'s' if failures != 1 else ''}. The 90 % limits of the MTBF reach from "
        f"{_grouped(limits.lower)} h {upper}{mean}. {_grouped(CLAIM_H)} h of the plant file: "
        f"{_verdict(limits)}."
    )


def limits_verdict(years: float, failures: int) -> tuple[str, str]:
    """Say what the records make of the value of the plant file, and their limits."""
    limits = _limits(years, failures)
    ends = f"to {_grouped(limits.upper)} h" if failures else "and more"
    return f"{capital(_verdict(limits))}.", f"The MTBF is {_grouped(limits.lower)} h {ends}."


def limits_svg(years: float, failures: int) -> str:
    """Draw the limits of an MTBF as a bar, beside the value of the plant file."""
    limits = _limits(years, failures)
    left, right = _x(limits.lower), _x(limits.upper)
    parts = [text(LEFT, 24, "MTBF that fits the records, 90 % limits", "b", size=17),
             rectangle(LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP, "frame", 0)]
    parts += ticks_below(((_x(10.0**decade), words) for decade, words in DECADES.items()),
                         TOP, BOTTOM)
    claim = _x(CLAIM_H)
    parts.append(rectangle(left, 112, right - left, 34, "now", 0))
    if not failures:
        parts.append(text(right - 8, 104, "no upper limit", "b over", size=16, anchor="end"))
    parts.append(line([(claim, TOP), (claim, BOTTOM)], "limit"))
    parts.append(text(claim + 8, TOP + 20, f"plant file: {_grouped(CLAIM_H)} h", "over", size=15))
    if failures:
        mean, words = _x(limits.point), f"mean {_grouped(limits.point)} h"
        # The line of the plant file does not cross the words.
        room = text_width(words, 14) / 2 + 6
        at = min(mean, claim - room) if mean < claim else max(mean, claim + room)
        parts += [line([(mean, 104), (mean, 154)], "event"),
                  text(at, 100, words, "over", size=14, anchor="middle")]
    return document(parts, WIDTH, HEIGHT, limits_alt_text(years, failures))
