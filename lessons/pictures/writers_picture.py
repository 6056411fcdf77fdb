"""Two actives: who leads, who writes the rack, and which value stands there."""

from __future__ import annotations

from labkit.rig.writers import AFTER_MS, BEFORE_MS, RACK, VALUES, WritersRun
from lessons.pictures.charts import axis_words, row_of_states, ticks_below
from lessons.pictures.svg import document, line, rectangle, text

__all__ = ["writers_alt_text", "writers_svg"]

WIDTH, HEIGHT = 900.0, 424.0
LEFT, RIGHT, TOP, AXIS = 120.0, 880.0, 40.0, 338.0
ROLE_Y = {"KF1": 50.0, "KF2": 90.0}
WRITE_Y = {"KF1": 148.0, "KF2": 186.0}
VALUE_TOP, VALUE_BOTTOM = 248.0, 332.0


def _x(ms: float) -> float:
    return LEFT + (ms + BEFORE_MS) / (AFTER_MS + BEFORE_MS) * (RIGHT - LEFT)


def _value_y(percent: float) -> float:
    low, high = min(VALUES.values()) - 5, max(VALUES.values()) + 5
    return VALUE_BOTTOM - (percent - low) / (high - low) * (VALUE_BOTTOM - VALUE_TOP)


def writers_alt_text(run: WritersRun) -> str:
    """Say in at most 60 words what the picture shows."""
    verdict = run.verdict
    return (
        f"Time bars from {BEFORE_MS} ms before to {AFTER_MS} ms after: roles of KF1 and KF2, "
        f"writes to rack {RACK}, value there. Situation: {run.situation}. Leading at the end: "
        f"{' and '.join(run.leaders) or 'nobody'}. {verdict[0].upper()}{verdict[1:]}."
    )


def writers_svg(run: WritersRun, *, standalone: bool = False) -> str:
    """Draw roles, writes and the value at the rack over the time."""
    parts = [text(LEFT, 24, "Roles, and who writes the rack", "b", size=17)]
    parts += ticks_below(((_x(ms), f"{ms}") for ms in range(-BEFORE_MS, AFTER_MS + 1, 100)),
                         TOP, AXIS)
    parts.append(axis_words(LEFT, RIGHT, AXIS + 38, "ms after the fault"))
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
    ends = [ms for ms, _ in roles[1:]] + [AFTER_MS]
    spans = [(begin, end, role) for (begin, role), end in zip(roles, ends, strict=True)]
    return [text(LEFT - 10, ROLE_Y[unit] + 19, unit, "b", anchor="end"),
            *row_of_states(spans, _x, ROLE_Y[unit], 27)]


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
