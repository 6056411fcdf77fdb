"""Two actives: who leads, who writes the rack, and what two loops make of outlet and level."""

import math
from collections.abc import Callable, Sequence

from labkit.rig.writers import AFTER_MS, BEFORE_MS, COURSE_S, RACK, WritersRun
from labkit.wording import capital
from lessons.pictures.charts import (
    along,
    axis_words,
    nice_step,
    row_of_states,
    ticks_below,
    ticks_beside,
    ticks_of,
)
from lessons.pictures.svg import document, line, rectangle, text

WIDTH, HEIGHT = 900.0, 512.0
LEFT, RIGHT, TOP, AXIS = 140.0, 880.0, 40.0, 222.0
ROLE_Y = {"KF1": 50.0, "KF2": 90.0}
WRITE_Y = {"KF1": 148.0, "KF2": 186.0}
OUTLET, LEVEL = (304.0, 384.0), (404.0, 464.0)
_x, _seconds_x = along(-BEFORE_MS, AFTER_MS, LEFT, RIGHT), along(0, COURSE_S, LEFT, RIGHT)


def writers_alt_text(run: WritersRun) -> str:
    """Say in at most 60 words what the picture shows."""
    verdict = run.verdict
    return (
        f"Time bars from {BEFORE_MS} ms before to {AFTER_MS} ms after: roles of KF1 and KF2, "
        f"writes to rack {RACK}; below, outlet and level for {COURSE_S} s. Situation: {run.situation}. Leading at the end: "
        f"{' and '.join(run.leaders) or 'nobody'}. {capital(verdict)}."
    )


def writers_svg(run: WritersRun) -> str:
    """Draw roles and writes in milliseconds, and below them outlet and level in seconds."""
    parts = [text(LEFT, 24, "Roles, and who writes the rack", "b", size=17)]
    parts += ticks_below(((_x(ms), f"{ms}") for ms in range(-BEFORE_MS, AFTER_MS + 1, 100)),
                         TOP, AXIS)
    parts.append(axis_words(LEFT, RIGHT, AXIS + 38, "ms after the fault"))
    for unit, roles in run.roles.items():
        parts += _roles(unit, roles)
        parts += _writes(unit, [ms for ms, writer in run.writes if writer == unit])
    parts += _course(run)
    parts.append(line([(_x(0), TOP), (_x(0), AXIS)], "event"))
    let_go_ms = next((ms for ms, state in run.outputs if state == "fail state"), None)
    if let_go_ms is not None:
        parts.append(line([(_x(let_go_ms), TOP), (_x(let_go_ms), AXIS)], "limit"))
        parts.append(text(_x(let_go_ms) + 6, AXIS - 8, "fail state", "f b over"))
    return document(parts, WIDTH, HEIGHT, writers_alt_text(run))


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


def _course(run: WritersRun) -> list[str]:
    """Draw what each loop writes and the level, over the seconds after the fault."""
    course = run.course
    parts = [text(LEFT, OUTLET[0] - 14, "What each one writes, and the level", "b", size=17)]
    parts += ticks_below(((_seconds_x(s), f"{s}") for s in range(0, COURSE_S + 1, 20)),
                         OUTLET[0], LEVEL[1])
    parts.append(axis_words(LEFT, RIGHT, LEVEL[1] + 38, "s after the fault"))
    wants = {unit: [(s, 100 * each) for s, each in zip(course.time_s, opening, strict=True)
                    if each is not None] for unit, opening in course.opening.items()}
    outlet = [each for points in wants.values() for _, each in points]
    parts += _scale(OUTLET, outlet, 6.0, "outlet, %")
    parts += _scale(LEVEL, course.level_m, 0.04, "level, m")
    y = _place(OUTLET, outlet, 6.0)
    for (unit, points), style in zip(wants.items(), ("curve", "curve-2"), strict=True):
        if len(points) > 1:
            s, last = points[-1]
            above = last >= max(each[-1][1] for each in wants.values() if each)
            parts += [line([(_seconds_x(s), y(each)) for s, each in points], style, 0),
                      text(_seconds_x(s) - 4, y(last) + (-8 if above else 20),
                           f"{unit} {last:.1f} %", "b over", anchor="end")]
    if not outlet:
        parts.append(text(LEFT + 10, sum(OUTLET) / 2 + 5, "nobody writes it", "f b over"))
    y = _place(LEVEL, course.level_m, 0.04)
    parts.append(line([(_seconds_x(s), y(m)) for s, m in
                       zip(course.time_s, course.level_m, strict=True)], "curve", 0))
    return parts


def _place(band: tuple[float, float], values: Sequence[float], least: float) -> Callable:
    """Return where values lie in a band that shows at least so wide a span of them."""
    return along(*_ends(values, least), band[1], band[0])


def _ends(values: Sequence[float], least: float) -> tuple[float, float]:
    low, high = (min(values), max(values)) if values else (0.0, 0.0)
    middle, half = (low + high) / 2, max(least, 1.3 * (high - low)) / 2
    return middle - half, middle + half


def _scale(band: tuple[float, float], values: Sequence[float], least: float, words: str) -> list[str]:
    low, high = _ends(values, least)
    y = _place(band, values, least)
    step = nice_step(high - low, 4)
    digits = max(0, -math.floor(math.log10(step)))
    return [text(20, sum(band) / 2 + 5, words),
            *ticks_beside(((y(tick), f"{tick:.{digits}f}") for tick in ticks_of(low, high, step)),
                          LEFT, RIGHT)]
