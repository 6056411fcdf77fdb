"""The still pictures of a takeover: what they draw and say follows the settings."""

import re

import pytest

from labkit.switchover.settings import PairSettings, switchover_budget
from lessons.pictures.takeover_pictures import beats_picture, spread_picture


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
