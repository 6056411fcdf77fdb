"""The panel of two states in time: lives, picture, text, controls."""

import itertools
import math
import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from labkit.simulation.histories import Span
from lessons.exercises.misconceptions import misconception
from lessons.panels.two_states_panel import COUNTS, STARTS, WINDOWS, two_states_panel
from lessons.pictures import settling as module
from lessons.pictures.settling import (
    LOOKS,
    Histories,
    live,
    two_states_alt_text,
    two_states_svg,
    two_states_text,
)
from lessons.pictures.svg import alone

# MTBF and MTTR at the ends of the controls, and those that they start with.
TIMES = [(100.0, 10.0), (60_000.0, 4.0), *itertools.product((1.0, 100_000.0), (0.5, 100.0))]


@pytest.mark.parametrize("starts_down", (False, True))
@pytest.mark.parametrize(("mtbf_h", "mttr_h"), TIMES)
def test_the_long_run_begins_where_the_closed_form_says(mtbf_h, mttr_h, starts_down):
    # U(t) = U + (U(0) - U) exp(-(1/MTBF + 1/MTTR) t), the textbook result for two states.
    lives = Histories(mtbf_h, mttr_h, 1.0, starts_down, ())
    long_run = mttr_h / (mtbf_h + mttr_h)
    left = math.exp(-(1 / mtbf_h + 1 / mttr_h) * lives.near_h)
    off = abs((1.0 if starts_down else 0.0) - long_run) * left
    assert math.isclose(off, 0.05 * long_run, rel_tol=1e-9) or lives.near_h == 0
    assert off <= 0.05 * long_run * (1 + 1e-9)
    assert math.isclose(lives.model.unavailability, long_run, rel_tol=1e-12)


def test_counting_holds_the_exact_value_in_about_nineteen_of_twenty():
    # Looks of one set of lives hang together, so each set gives one look only.
    held = 0
    for seed in range(200):
        lives = live(100, 10, 40, lives=60, seed=seed)
        found = lives.counted(30.0)
        held += found.lower <= float(lives.model.unavailability_at(30.0)) <= found.upper
    # Clopper-Pearson covers at least 95 %; 4 standard errors of 200 trials are 6 %.
    assert held >= 200 * (0.95 - 4 * math.sqrt(0.95 * 0.05 / 200))


def test_down_is_counted_from_the_begin_to_before_the_end():
    lives = Histories(100, 10, 50, False, ((Span(3.0, 5.0), Span(8.0, 9.0)), ()))
    assert [lives.down_at(t) for t in (2.9, 3.0, 4.9, 5.0, 8.5)] == [0, 1, 1, 0, 1]
    assert lives.counted(4.0).point == 0.5


def test_lives_are_counted_at_each_mttr_and_one_mttr_is_marked():
    lives = live(100, 10, 120)
    assert np.allclose(lives.looks_h(), np.arange(1, LOOKS + 1) * 10.0, rtol=1e-12, atol=0)
    marked = re.findall(r'class="f over"[^>]*>([^<]+)<', two_states_svg(lives))
    assert sorted(marked) == ["5 % from the long run", "MTBF", "MTTR"]
    assert "t = 10 h: U exact 0.0606" in two_states_text(lives)


def test_the_same_seed_gives_the_same_lives_and_another_gives_others():
    assert live(100, 10, 120, seed=3) == live(100, 10, 120, seed=3)
    assert live(100, 10, 120, seed=3).outages != live(100, 10, 120, seed=4).outages
    assert all(spans[0].begin_h == 0 for spans in live(9, 9, 9, starts_down=True).outages)
    with pytest.raises(ValueError, match="lives must be >= 1, got 0"):
        live(100, 10, 120, lives=0)


@pytest.mark.parametrize("standalone", (False, True))
@pytest.mark.parametrize("starts_down", (False, True))
@pytest.mark.parametrize(("mtbf_h", "mttr_h"), TIMES)
def test_picture_and_text_at_the_corners(mtbf_h, mttr_h, starts_down, standalone):
    for window_h in (12 * mttr_h, 2 * mtbf_h):
        lives = live(mtbf_h, mttr_h, window_h, lives=8, starts_down=starts_down)
        svg = two_states_svg(lives)
        svg = alone(svg) if standalone else svg
        root = ET.fromstring(svg)
        assert root.get("role") == "img" and root.get("aria-label") == two_states_alt_text(lives)
        assert len(two_states_alt_text(lives).split()) <= 60
        drawn = re.sub(r"<style>.*?</style>", "", svg)
        assert "nan" not in drawn and "inf" not in drawn
        left, right = module.LEFT, module.RIGHT
        for x, width in re.findall(r'<rect x="([\d.-]+)" y="[\d.-]+" width="([\d.-]+)"', svg):
            assert float(x) >= min(left - 5, 0) and float(x) + float(width) <= module.WIDTH
        points = re.search(r'<polyline points="([^"]+)"', svg).group(1)
        xs, ys = np.array([p.split(",") for p in points.split()], float).T
        assert xs[0] == left and math.isclose(xs[-1], right, rel_tol=1e-9)
        assert ((module.CURVE_TOP <= ys) & (ys <= module.CURVE_BOTTOM)).all()
        # Two numbers at least on each axis, or it has no scale.
        for top, bottom in ((module.CURVE_TOP, module.CURVE_BOTTOM),
                            (module.DIFF_TOP, module.DIFF_BOTTOM)):
            heights = [float(y) - 5 for y in re.findall(
                rf'<text x="{left - 7:g}" y="([\d.]+)" class="q"', svg)]
            assert sum(top - 1 <= y <= bottom + 1 for y in heights) >= 2
        # The looks: a square each, in the curve and in the difference.
        assert svg.count('class="eventhead"') == 2 * LOOKS
        assert two_states_text(lives).count("95 % interval") == LOOKS


def test_the_curve_rises_from_a_start_up_and_falls_from_a_start_down():
    for starts_down, sign in ((False, -1), (True, 1)):
        svg = two_states_svg(live(100, 10, 120, starts_down=starts_down))
        points = re.search(r'<polyline points="([^"]+)"', svg).group(1)
        ys = [float(point.split(",")[1]) for point in points.split()]
        assert all(sign * (b - a) >= 0 for a, b in itertools.pairwise(ys))


@pytest.fixture
def panel():
    made = two_states_panel(task="Look.")
    yield made
    made.close()


def test_every_control_changes_the_picture(panel):
    seen = {panel.picture.value}
    for control, value in (
        (panel.mtbf, 50.0), (panel.mttr, 20.0), (panel.window, WINDOWS["2 times the MTBF"]),
        (panel.count, COUNTS[0]), (panel.start, STARTS["all down"]),
    ):
        control.value = value
        assert panel.problem is None and panel.picture.value not in seen
        seen.add(panel.picture.value)
    panel.others.click()
    assert panel.problem is None and panel.picture.value not in seen and panel.seed == 2
    text = panel.text()
    assert text.startswith("Task: Look.\nMTBF 50 h, MTTR 20 h, start: all down; 8 histories")


def test_the_controls_at_all_their_ends(panel):
    for mtbf_h, mttr_h in TIMES:
        for window, start in itertools.product(WINDOWS.values(), STARTS.values()):
            panel.count.value = 8
            panel.mtbf.value, panel.mttr.value = mtbf_h, mttr_h
            panel.window.value, panel.start.value = window, start
            assert panel.problem is None
            assert panel.lives.window_h in (12 * mttr_h, 2 * mtbf_h)


def test_what_is_kept_is_said_with_its_times(panel, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    entry_of(panel).value = "777"
    panel.keep_button.click()
    assert (tmp_path / "two-states.svg").is_file()
    assert "two-states.svg, beside this notebook. MTBF 777 h, MTTR 10 h," in panel.kept.value


def test_a_panel_that_cannot_keep_names_no_button_that_it_has_not(panel, tmp_path, monkeypatch):
    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("lessons.panels.two_states_panel.write_new", refuse)
    panel.keep_button.click()
    said = panel._message.value
    assert "Permission denied" in said and "Nothing else is changed." in said
    buttons = {each.description for each in (panel.others, panel.keep_button)}
    assert not set(re.findall('&quot;(.+?)&quot;', said)) - buttons


def entry_of(panel):
    return panel.children[2].children[0].children[0]


def test_the_slider_fills_the_entry_with_a_round_number(panel):
    panel.mtbf.value = 10**2.55
    assert entry_of(panel).value == "355" and panel.lives.mtbf_h == panel.mtbf.value == 355.0


def test_the_slider_follows_what_is_typed_and_leaves_it_as_it_is(panel):
    for typed, meant in (("12345", 12_345.0), ("1", 1.0), ("100 000", 100_000.0), ("1e3", 1000.0)):
        entry_of(panel).value = typed
        assert entry_of(panel).value == typed
        assert panel.mtbf.value == panel.lives.mtbf_h == meant


def test_the_picture_is_kept_and_never_written_over(panel, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    panel.keep_button.click()
    panel.others.click()
    panel.keep_button.click()
    kept = sorted(path.name for path in tmp_path.iterdir())
    assert kept == ["two-states-2.svg", "two-states.svg"] and panel.problem is None
    second, first = (ET.parse(tmp_path / name).getroot() for name in kept)
    assert first.get("aria-label") and ET.tostring(first) != ET.tostring(second)
    assert "two-states-2.svg" in panel.kept.value


def test_a_page_without_controls_gets_picture_and_text(panel):
    data, _ = panel._repr_mimebundle_()
    assert "long run 0.0909" in data["text/html"].lower() and 'alt="Up to 8' in data["text/html"]
    assert data["text/plain"].startswith("Task: Look.")


def test_the_number_against_a_long_run_from_the_first_hour():
    # 1 - exp(-(1/MTBF + 1/MTTR) t) at one MTTR, and ln 20 over the same rate, by hand.
    found = misconception("M47").numbers()
    rate = 1 / 60_000 + 1 / 4
    assert math.isclose(found.one_mttr, 1 - math.exp(-4 * rate), rel_tol=1e-12)
    assert math.isclose(found.near_h, math.log(20) / rate, rel_tol=1e-12)


def test_hours_are_written_without_a_power_of_ten():
    assert [module._number(hours).replace("\u202f", " ") for hours in (0.25, 999.4, 999.7, 12_345)] == [
        "0.25", "999", "1 000", "12 345"]
