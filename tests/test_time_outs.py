"""What a time-out brings and costs, and its panel at every corner of the controls."""

import itertools
import math
import re
from html import unescape

import pytest

from labkit.switchover.clocks import Channel
from labkit.switchover.settings import PairSettings
from labkit.switchover.time_outs import (
    TimeOut,
    false_alarms_by_beats,
    fewest_beats,
    how_often,
    time_out,
    time_out_text,
)
from labkit.wording import capital
from lessons.panels import time_out_panel as panels
from lessons.pictures.time_out_picture import MOST_BEATS

SECONDS_PER_YEAR = 8760 * 3600


@pytest.mark.parametrize("loss", [0.001, 0.01, 0.05])
def test_single_losses_follow_the_closed_form(loss):
    # A trip needs one beat heard and then n lost: p^n (1 - p) per beat (mean recurrence of a
    # success run: Feller, An Introduction to Probability Theory, vol. 1, XIII.7).
    rates = false_alarms_by_beats(PairSettings(), Channel(loss=loss), 6)
    for beats, rate in enumerate(rates, 1):
        by_hand = loss**beats * (1 - loss) * SECONDS_PER_YEAR / 0.05
        # Products of a few factors: rounding only.
        assert math.isclose(rate, by_hand, rel_tol=1e-12)


def test_long_gaps_beat_every_time_out():
    # A gap of mean length b outlasts one period P more with chance exp(-P/b), the ratio that
    # is left of many beats, since within a gap every beat is lost.
    rates = false_alarms_by_beats(PairSettings(), Channel(loss=0.0, beat_gap_ms=200.0), 8)
    stays = math.exp(-50 * (1 / 200 + 1 / 60_000))
    mixed = (1 - stays) * (1 / 60_000) / (1 / 200 + 1 / 60_000)
    for one, other in itertools.pairwise(rates[1:]):
        assert math.isclose(other / one, stays + mixed, rel_tol=1e-9)


def test_fewest_beats_keeps_the_bound_and_one_less_does_not():
    for loss, bound in itertools.product((0.001, 0.02, 0.2), (0.1, 10.0)):
        channel = Channel(loss=loss)
        least = fewest_beats(PairSettings(), channel, bound)
        rates = false_alarms_by_beats(PairSettings(), channel, least)
        assert rates[-1] < bound
        assert least == 1 or rates[-2] >= bound
    assert fewest_beats(PairSettings(), Channel(loss=0.99), 0.1) is None


def test_asking_the_racks_changes_no_time_and_no_alarm():
    channel = Channel(loss=0.01)
    asked, not_asked = (time_out(PairSettings(ask_racks=ask), channel) for ask in (True, False))
    assert asked == not_asked
    assert (asked.silent_ms, asked.takeover_ms) == ((110, 160), (175, 285))


@pytest.mark.parametrize(("unwritten_ms", "verdict"), [
    (500, "too late, the racks may let go first"), (501, "too late, the racks may let go first"),
    (499, "close, the reserve of 100 ms is missing"),
    (401, "close, the reserve of 100 ms is missing"), (400, "in time, the racks still hold"),
])
def test_verdict_on_a_takeover(unwritten_ms, verdict):
    """The hold time runs from the last write, which may be older than the loss."""
    assert TimeOut((1, 2), (3, 40), unwritten_ms, 500, 1.0).verdict == verdict
    # 285 ms of switchover, one cycle of 40 ms and one rack update of 20 ms
    assert time_out(PairSettings(), Channel(loss=0.0)).unwritten_ms == 285 + 40 + 20


@pytest.mark.parametrize(("per_year", "words"), [
    (0, "never"), (1e-6, "less than one in 10⁶ years"), (1.01e-6, "one in 990 000 years"),
    (0.001, "one in 1 000 years"), (0.5, "one in 2 years"), (0.125, "one in 8 years"),
    (0.15, "one in 6.7 years"), (1, "1 a year"), (9.96, "10 a year"), (10.4, "10 a year"), (12.3, "12 a year"),
    (364.9, "365 a year"), (365, "1 a day"), (365 * 1234, "1 230 a day"),
    (365 * 99.7, "100 a day"),
])
def test_how_often_in_words(per_year, words):
    assert how_often(per_year) == words


def test_eight_numbers_of_beats_are_compared():
    rates = false_alarms_by_beats(PairSettings(), Channel(loss=0.1))
    assert len(rates) == 8 and rates[7] == pytest.approx(0.1**8 * 0.9 * SECONDS_PER_YEAR / 0.05)
    assert len(false_alarms_by_beats(PairSettings(), Channel(loss=0.1), 1)) == 1
    assert len(false_alarms_by_beats(PairSettings(), Channel(loss=0.1), 50)) == 50
    with pytest.raises(ValueError, match="most must be 1 to 50, got 51"):
        false_alarms_by_beats(PairSettings(), Channel(loss=0.1), 51)


def test_fewest_beats_looks_up_to_fifty():
    # loss 0.5: 0.5^n x 0.5 of 630 720 000 beats a year; n = 50: 2.8e-7, n = 49: 5.6e-7, n = 1: 1.6e8
    half = Channel(loss=0.5)
    assert fewest_beats(PairSettings(), half, 2.9e-7) == 50
    assert fewest_beats(PairSettings(), half, 2.7e-7) is None
    assert fewest_beats(PairSettings(), half, 2e8) == 1
    # as many as the bound are not below it
    assert fewest_beats(PairSettings(), half, false_alarms_by_beats(PairSettings(), half)[2]) == 4


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: how_often(-1), "per_year must be >= 0 and finite, got -1"),
        (lambda: how_often(math.nan), "per_year must be >= 0 and finite, got nan"),
        (lambda: fewest_beats(PairSettings(), Channel(loss=0.1), 0), "most_per_year must be > 0"),
        (lambda: false_alarms_by_beats(PairSettings(), Channel(loss=0.1), 0), "most must be 1 to"),
    ],
)
def test_refusals(call, match):
    with pytest.raises(ValueError, match=match):
        call()


def test_every_corner_of_the_panel_is_drawn_and_said():
    panel = panels.time_out_panel(task="Look.")
    corners = itertools.product((1, MOST_BEATS), panels.BEATS_MS.values(),
                                panels.LOSSES.values(), panels.BEAT_GAPS_MS.values(), (True, False))
    for beats, beat, loss, gap, ask in corners:
        panel.beats.value, panel.beat.value, panel.loss.value = beats, beat, loss
        panel.gap.value, panel.ask.value = gap, ask
        assert panel.problem is None
        svg = panel.picture.value
        label = unescape(re.search(r'aria-label="([^"]+)"', svg).group(1))
        assert len(label.split()) <= 60 and svg.count("<svg") == 1
        assert "nan" not in svg and "inf" not in svg
        found = time_out(panel.settings, panel.channel)
        often = how_often(found.false_alarms_per_year)
        for said in (label, panel.text()):
            assert often in said
            assert "{} to {} ms".format(*found.silent_ms) in said
            assert "{} to {} ms".format(*found.takeover_ms) in said
        unwritten_ms = found.takeover_ms[1] + 40 + 20
        late, close = unwritten_ms >= 500, unwritten_ms + 100 > 500
        wanted = "too late" if late else "close" if close else "in time"
        assert found.verdict.startswith(wanted)
        strip = panel.said.value
        assert f"<b>{capital(found.verdict)}.</b>" in strip and often in strip
        assert found.verdict in panel.text()
    panel.close()


def test_slider_and_typed_entry_agree_and_the_picture_follows():
    panel = panels.time_out_panel()
    panel.typed.value = "5"
    assert panel.beats.value == 5 and "one in 16 years" in panel.picture.value
    svg, words = panel.still_picture()
    assert "<style>" in svg and words in unescape(svg)
    assert panel.text().splitlines()[0] == f"Task: {panels.TASK}"
    panel.close()


def test_an_error_is_shown_in_the_panel(monkeypatch):
    panel = panels.time_out_panel()

    def fail(*_, **__):
        raise ValueError("no picture today")

    monkeypatch.setattr(panels.TimeOutPanel, "drawn", (fail, fail))
    panel.beats.value = 2
    assert isinstance(panel.problem, ValueError)
    monkeypatch.undo()
    panel.beats.value = 1
    assert panel.problem is None
    panel.close()


def test_text_says_the_state():
    said = time_out_text(PairSettings(), Channel(loss=0.01, beat_gap_ms=200.0))
    assert "gaps of 200 ms" in said and len(said.splitlines()) == 5


def test_text_by_value():
    """p^3 (1 - p) x 630 720 000 = 624 a year, 1.7 a day; unasked each may be a takeover."""
    assert time_out_text(PairSettings(ask_racks=False), Channel(loss=0.01)).splitlines() == [
        "Beat every 50 ms, 3 missed, margin 10 ms; 1.0 % lost singly, no gaps of beats.",
        "A dead partner is found after 110 to 160 ms.",
        "First correct output after 175 to 285 ms; hold time 500 ms: in time, the racks still hold.",
        "A living partner is taken for dead: 1.7 a day.",
        "The racks are not asked: KF2 takes over for nothing, unless a beat comes in time."]
    said = time_out_text(PairSettings(), Channel(loss=0.01, beat_gap_ms=200.0)).splitlines()
    assert said[0].endswith("gaps of 200 ms on average, one in 60 s.")
    assert said[4] == "The racks are asked: each one is an alarm and no takeover."
