"""The pair's flaws one at a time: golden numbers, limits by hand, and the panel."""

import itertools
import logging
import math
import re

import pytest

from labkit.markov.flaws import FlawRow, Flaws, _against, flaw_rows, flaws_text, years_in_words
from lessons.panels.flaws_panel import CAUSES, RESTORED_H, SEEN, TAKEN, TESTS_H, flaws_panel
from lessons.pictures.flaw_bars import flaws_alt_text, flaws_svg

REAL = Flaws(common_cause=0.05, coverage=0.97, diagnosed=0.9)
NAMES = ("one controller", "ideal pair", "common causes only", "failed takeovers only",
         "latent faults only", "pair as set")


def test_rows_in_closed_form():
    rows = {row.name: row for row in flaw_rows(REAL)}
    assert tuple(rows) == NAMES
    fail, back = 1 / 60_000, 1 / 4
    # Two states: unavailability and rounds in closed form; rounding alone is left.
    one = rows["one controller"]
    assert math.isclose(one.down_min_per_a, 4 / 60_004 * 525_600, rel_tol=1e-12)
    assert math.isclose(one.years_between, 60_004 / 8760, rel_tol=1e-12)
    # One crew, ideal pair: birth and death, a textbook result.
    r = fail / back
    ideal = rows["ideal pair"]
    out = 2 * r**2 / (1 + 2 * r + 2 * r**2)
    assert math.isclose(ideal.down_min_per_a, out * 525_600, rel_tol=1e-12)
    assert math.isclose(ideal.first_outage_h, (3 * fail + back) / (2 * fail**2), rel_tol=1e-12)


def test_a_flaw_that_is_not_there_gives_the_ideal_pair():
    rows = flaw_rows(Flaws())
    down = {row.down_min_per_a for row in rows[1:]}
    assert max(down) <= min(down) * (1 + 1e-12)


def test_each_flaw_costs_and_together_they_cost_most():
    single, ideal, *alone, real = flaw_rows(REAL)
    for row in alone:
        assert ideal.down_min_per_a < row.down_min_per_a < real.down_min_per_a
        assert ideal.years_between > row.years_between > real.years_between
    assert real.down_min_per_a < single.down_min_per_a


@pytest.mark.parametrize(("years", "words"), [
    (6.846, "6.85 years"), (12.2, "12 years"), (136.6, "137 years"), (1881.4, "1 880 years"),
])
def test_years_in_words(years, words):
    assert years_in_words(years) == words


def test_picture_and_words_agree():
    for flaws in (Flaws(), REAL, Flaws(mttr_h=72, diagnosed=0.0, test_interval_h=math.inf)):
        svg, said = flaws_svg(flaws), flaws_text(flaws)
        assert len(flaws_alt_text(flaws).split()) <= 60
        assert re.search(r'role="img" aria-label="[^"]+"', svg)
        for row in flaw_rows(flaws):
            assert f">{row.name}<" in svg and f"{row.name}: " in said
            assert years_in_words(row.years_between) in svg
        dots = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', svg)]
        assert len(dots) == 6 and 196 <= min(dots) and max(dots) <= 640
        order = [row.down_min_per_a for row in flaw_rows(flaws)]
        longest = max(range(6), key=order.__getitem__)
        assert dots[longest] == max(dots)


def test_panel_at_all_corners(caplog):
    panel = flaws_panel(task="Look.")
    ends = [[list(each.values())[0], list(each.values())[-1]]
            for each in (CAUSES, TAKEN, SEEN, TESTS_H, RESTORED_H)]
    for cause, taken, seen, tested, restored in itertools.product(*ends):
        panel.cause.value, panel.taken.value, panel.seen.value = cause, taken, seen
        panel.tested.value, panel.restored.value = tested, restored
        assert panel.problem is None
        flaws = Flaws(common_cause=cause, coverage=taken, diagnosed=seen, test_interval_h=tested,
                      mttr_h=restored)
        assert panel.picture.value == flaws_svg(flaws)
        assert panel.text() == f"Task: Look.\n{flaws_text(flaws)}"
        assert flaws_text(flaws).splitlines()[-1] in panel.said.value
    assert not [each for each in caplog.records if each.levelno >= logging.ERROR]


def test_output_of_the_cell_carries_picture_and_text():
    data, _ = flaws_panel()._repr_mimebundle_()
    assert "one controller: 35.04 min a year down" in data["text/plain"]
    assert "<img alt=" in data["text/html"]


def test_the_usual_pair_has_no_flaw():
    assert Flaws() == Flaws(mtbf_h=60_000, mttr_h=4, common_cause=0, coverage=1, diagnosed=1,
                            test_interval_h=26 * 168 + 12, restart_h=0.5)


@pytest.mark.parametrize(("years", "words"), [
    (9.96, "9.96 years"), (10, "10 years"), (10.4, "10 years"), (999.6, "1 000 years"), (51_376.7, "51 400 years")])
def test_more_years_in_words(years, words):
    assert years_in_words(years) == words


@pytest.mark.parametrize(("times", "words"), [
    (19.94, "19.9"), (99.96, "100"), (136.6, "137"), (999.7, "1 000"), (1234, "1 230")])
def test_times_less_in_words(times, words):
    one, pair = FlawRow("one controller", times, 6.85, 6e4), FlawRow("pair", 1.0, 83.8, 7e5)
    assert _against((one, pair)).startswith(
        f"Against one controller: down {words} times less, one outage in 84 years and not in 6.85")


def test_text_against_sums_by_hand():
    """Failed takeovers: 5 % of 1 / 60 000 h, each 1/2 h, 0.219 min a year; two at once: 0.0047."""
    lines = flaws_text(Flaws(coverage=0.95)).splitlines()
    assert lines[0] == ("MTBF 60 000 h, MTTR 4 h; common causes 0 %, taken over 95 %, standby "
                        "faults seen 100 %, standby tested every 4380 h.")
    assert lines[1] == "one controller: 35.04 min a year down, one outage in 6.85 years"
    assert lines[4] == "failed takeovers only: 0.2236 min a year down, one outage in 137 years"
    # 35.04 / 0.2236 = 157
    assert lines[-1] == ("Against one controller: down 157 times less, one outage in 137 years and "
                         "not in 6.85 years.")
    # the ideal pair: MTBF / (2 MTTR) = 7500 times less
    assert flaws_text(Flaws()).splitlines()[-1].startswith(
        "Against one controller: down 7 500 times less, one outage in 51 400 years")
    assert flaws_text(Flaws(mttr_h=400.0)).splitlines()[-1].startswith(
        "Against one controller: down 75.5 times less")  # (1 + 2r + 2r^2) / (2 r (1 + r)), r = 1/150
    assert "standby tested never." in flaws_text(Flaws(test_interval_h=math.inf))
