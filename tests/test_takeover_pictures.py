"""The still pictures of a takeover: what they draw and say follows the settings."""

import itertools
import re
import xml.etree.ElementTree as ET

import pytest

from labkit.switchover.clocks import Channel
from labkit.switchover.settings import PairSettings, switchover_budget
from lessons.panels.time_out_panel import BEAT_GAPS_MS, BEATS_MS, LOSSES
from lessons.pictures.svg import text_width
from lessons.pictures.takeover_pictures import beats_picture, spread_picture
from lessons.pictures.time_out_picture import BAR_LEFT, BOTTOM, LEFT, TOP, time_out_svg

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize(("beat_ms", "beats", "margin_ms"),
                         [(50, 3, 10), (20, 6, 0), (100, 1, 99), (2, 10, 1)])
def test_beats_are_drawn_one_by_one(beat_ms, beats, margin_ms):
    settings = PairSettings(heartbeat_ms=beat_ms, missed_beats=beats, margin_ms=margin_ms)
    picture = beats_picture(settings)
    assert picture.svg.count('class="missed"') == beats
    assert 'class="heard"' in picture.svg
    most, least = beats * beat_ms + margin_ms, (beats - 1) * beat_ms + margin_ms
    for said in (repr(picture), picture.svg):
        assert f"after {most} ms" in said and f"after {least} ms" in said
    assert f"longest: {most} ms" in picture.svg and f"shortest: {least} ms" in picture.svg
    assert max(map(float, re.findall(r'x="([\d.]+)"', picture.svg))) <= 760


def test_too_many_beats_are_refused():
    with pytest.raises(ValueError, match="missed_beats must be <= 10 in this picture, got 11"):
        beats_picture(PairSettings(missed_beats=11))


@pytest.mark.parametrize("settings", [PairSettings(), PairSettings(cycle_ms=7, rack_update_ms=3)])
def test_the_spread_lies_inside_the_budget(settings):
    picture = spread_picture(settings, runs=2000)
    budget = switchover_budget(settings)
    least, most = map(int, re.search(r"from (\d+) to (\d+) ms", repr(picture)).groups())
    assert budget.least_ms <= least < most <= budget.most_ms
    heights = [float(h) for h in re.findall(r'class="bar"[^>]*height="([\d.]+)"', picture.svg)]
    assert len(heights) >= (most - least) // 10 and max(heights) == 140
    assert len(repr(picture).split()) <= 60
    assert repr(picture) == repr(spread_picture(settings, runs=2000))


def test_no_words_of_a_time_out_lie_on_a_curve_at_any_setting_of_the_panel():
    settings = itertools.product(BEATS_MS.values(), LOSSES.values(), BEAT_GAPS_MS.values(), range(1, 9))
    for beat, loss, gap, missed in settings:
        svg = time_out_svg(PairSettings(heartbeat_ms=beat, missed_beats=missed),
                           Channel(loss=loss, beat_gap_ms=gap))
        tree = ET.fromstring(svg)
        words = next(node for node in tree.iter(f"{SVG}text") if node.get("class") == "b over")
        left, base = float(words.get("x")), float(words.get("y"))
        right = left + text_width(words.text, 16, bold=True)
        assert LEFT < left and right < BAR_LEFT - 10 and TOP < base - 12 and base < BOTTOM
        [curve] = [node.get("d") for node in tree.iter(f"{SVG}path") if node.get("class") == "curve"]
        corners = [tuple(map(float, each.split(","))) for each in re.findall(r"[\d.]+,[\d.]+", curve)]
        assert len(corners) > 1
        for (x, y), (to_x, to_y) in itertools.pairwise(corners):
            on_it = [(x + (to_x - x) * k / 50, y + (to_y - y) * k / 50) for k in range(51)]
            assert not [at for at in on_it if left < at[0] < right and base - 12 < at[1] < base + 3], (
                beat, loss, gap, missed)
