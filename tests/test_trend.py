"""The level picture shows every peak, keeps to its frame, and says what it shows."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from labkit.plant.tank_data import TankSettings
from labkit.rig.rig import Trend
from lessons.pictures.charts import nice_step
from lessons.pictures.geometry import Box
from lessons.pictures.trend import (
    HEIGHT,
    WIDTH,
    LevelChart,
    Mark,
    level_alt_text,
    level_svg,
    window_s,
)

TANK = TankSettings(set_point_m=1.20, overflow_m=1.44, low_trip_m=0.60)
SVG = "{http://www.w3.org/2000/svg}"
CHART = LevelChart(Box(0, 0, WIDTH, HEIGHT), TANK)


def trend(time_s, level_m):
    return Trend(np.array(time_s, float), np.array(level_m, float), (), (), (), ())


def drawn(time_s, level_m, **options):
    return level_svg(trend(time_s, level_m), TANK, **options)


def tree_of(time_s, level_m, **options):
    return ET.fromstring(drawn(time_s, level_m, **options))


def texts(tree):
    return [node.text for node in tree.iter(f"{SVG}text")]


def curve(tree):
    points = tree.find(f".//{SVG}polyline").get("points")
    return np.array([[float(n) for n in pair.split(",")] for pair in points.split()])


def test_axes_have_quantity_and_unit_and_limits_their_words():
    said = texts(tree_of([0, 30], [1.2, 1.3]))
    assert {"level [m]", "60 s", "overflow 1.44 m", "set-point 1.20 m", "low trip 0.60 m"} <= {*said}
    assert "1.30 m" in said
    assert "30 min" in texts(tree_of([0, 700], [1.2, 1.3]))


@pytest.mark.parametrize("level", [0.55, 0.65, 1.15, 1.2, 1.23, 1.4, 1.44, 1.48])
def test_the_words_of_a_limit_stand_clear_of_the_curve(level):
    tree = tree_of([0, 60], [level, level])
    y = CHART.y(level)
    bases = []
    for words in ("overflow 1.44 m", "set-point 1.20 m", "low trip 0.60 m"):
        base = next(float(node.get("y")) for node in tree.iter(f"{SVG}text") if node.text == words)
        assert all(abs(base - other) > 15.5 for other in bases), words
        bases.append(base)
        # Letters reach 11 above their line and 3 below it; the curve is 3 wide.
        assert not base - 12.5 < y < base + 4.5, words
        assert CHART.top + 12.5 < base < CHART.bottom - 3.5, words


def test_a_peak_of_one_sample_is_drawn():
    time_s = np.arange(0, 1800, 0.1)
    level_m = np.full(time_s.size, 1.2)
    level_m[9777] = 1.44
    points = curve(tree_of(time_s.tolist(), level_m.tolist()))
    assert len(points) < 1400
    top = points[np.argmin(points[:, 1])]
    width = CHART.right - CHART.left
    # Whole pixels on the axis of time, tenths on that of the level.
    assert top[0] == pytest.approx(CHART.left + 977.7 / 1800 * width, abs=0.5, rel=0)
    flat = points[0]
    # The axis reaches 19 of its 114 pixels beyond each of the limits, which are 0.84 m apart.
    assert flat[1] - top[1] == pytest.approx(0.24 / 0.84 * (114 - 38), abs=0.11, rel=0)


def test_levels_beyond_the_scale_stay_in_the_frame():
    points = curve(tree_of([0, 10, 20], [-5.0, 1.2, 99.0]))
    assert points[:, 1].min() >= CHART.top and points[:, 1].max() <= CHART.bottom


def test_marks_carry_words_where_there_is_room_and_never_overlap():
    marks = [Mark(10 + i, f"event number {i}") for i in range(8)] + [Mark(500, "later")]
    tree = tree_of([0, 50], [1.2, 1.2], marks=marks)
    stems = next(node for node in tree.iter(f"{SVG}path") if node.get("class") == "event")
    assert stems.get("d").count("M") == 8
    shown = [node for node in tree.iter(f"{SVG}text") if "event" in (node.text or "")]
    assert len(shown) >= 2
    rows = {}
    for node in shown:
        rows.setdefault(node.get("y"), []).append(float(node.get("x")))
    for places in rows.values():
        assert all(b - a > 90 for a, b in zip(places, places[1:]))


@pytest.mark.parametrize(
    ("levels", "words"),
    [([1.2, 1.5, 1.2], "overflowed"), ([1.2, 0.5, 1.1], "low trip has acted"),
     ([1.2, 1.3, 1.2], "Neither")],
)
def test_alternative_text_follows_the_record(levels, words):
    said = level_alt_text(trend([0, 10, 20], levels), TANK)
    assert words in said and len(said.split()) <= 60
    assert tree_of([0, 10, 20], levels).get("aria-label") == said


def test_window_grows_and_then_moves():
    assert window_s(59.9) == (0.0, 60.0)
    assert window_s(120.0) == (0.0, 120.0)
    assert window_s(4000.0) == (2200.0, 4000.0)


@pytest.mark.parametrize("span", [1e-3, 0.7, 1.0, 9.99, 86400.0])
@pytest.mark.parametrize("most", [1, 3, 6])
def test_steps_are_round_and_few(span, most):
    step = nice_step(span, most)
    assert span / step <= most * (1 + 1e-6)
    assert float(f"{step:.6e}"[:8]) in (1.0, 2.0, 5.0)


def test_no_span_is_refused():
    with pytest.raises(ValueError, match="span must be > 0, got 0"):
        nice_step(0, 5)


def test_same_record_same_picture():
    one = drawn([0, 10], [1.2, 1.3], marks=[Mark(5, "KF1: no power")])
    assert one == drawn([0, 10], [1.2, 1.3], marks=[Mark(5, "KF1: no power")])
    assert not re.search(r"nan|inf", one)
