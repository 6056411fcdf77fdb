"""The panel of what a step is worth, and the tornado picture of a verdict."""

import itertools
import logging
import math
import re
import xml.etree.ElementTree as ET

import matplotlib
import pytest

from labkit.plant.plant import load_plant
from labkit.plant.sensitivity import sensitivity
from labkit.plant.variants import compare_variants
from lessons.panels.worth_panel import SPREADS, worth_alt_text, worth_panel, worth_svg
from lessons.pictures.tornado import MOST_BARS, plot_tornado, tornado_words

matplotlib.use("agg")
CORNERS = list(itertools.product((False, True), SPREADS.values()))


@pytest.fixture(autouse=True)
def no_figure_stays():
    yield
    import matplotlib.pyplot as plt

    plt.close("all")


@pytest.fixture(scope="module", params=["", " air"])
def swings(request):
    ending = request.param
    return sensitivity(load_plant(), f"V1a{ending}", f"V0{ending}", "fixed")


@pytest.mark.parametrize(("air", "durations"), CORNERS)
def test_bars_are_the_losses_and_prices_of_the_plant(air, durations):
    svg = ET.fromstring(worth_svg(air, durations, standalone=True))
    bars = [node for node in svg.iter() if node.tag.endswith("rect")]
    losses = [float(bar.get("width")) for bar in bars if bar.get("class") == "now"][1:]
    prices = [float(bar.get("width")) for bar in bars if bar.get("class") == "card"][1:]
    ending = " air" if air else ""
    plant = {one.variant: one for one in compare_variants(load_plant(), durations)}
    wanted = [plant[f"{name}{ending}"] for name in ("V0", "V1a", "V1b")]
    # 20 000 EUR are 510 units wide; the picture rounds to tenths of a unit.
    for width, one in zip(losses, wanted, strict=True):
        assert abs(width - one.loss_per_year * 510 / 20_000) < 0.051
    # What the blowers cost is in both versions, and so in neither price.
    assert len(prices) == 2
    for width, price in zip(prices, (1550, 480), strict=True):
        assert abs(width - price * 510 / 20_000) < 0.051
    words = worth_alt_text(air, durations)
    assert len(words.split()) <= 60 and not re.search("nan|inf|None", words)
    assert f"fail to {'on' if air else 'off'}" in words


def test_the_panel_follows_its_controls(caplog):
    caplog.set_level(logging.ERROR)
    panel = worth_panel()
    for air, durations in CORNERS:
        panel.air.value, panel.spread.value = air, durations
        assert panel.problem is None
        assert panel.picture.value == worth_svg(air, durations)
        assert worth_alt_text(air, durations) in panel.text()
        svg, words = panel.still_picture()
        assert "<style" in svg and words in panel.text()
    assert not caplog.records
    panel.close()


def test_refusals():
    with pytest.raises(ValueError, match="durations must be exponential or fixed, got 'long'"):
        worth_svg(False, "long")
    for function in (plot_tornado, tornado_words):
        with pytest.raises(ValueError, match="swings must hold at least one swing, got none"):
            function([])


def test_bars_of_the_tornado_reach_to_the_limits(swings):
    ax = plot_tornado(swings)
    bars = ax.patches
    drawn = swings[:MOST_BARS]
    assert len(bars) == 2 * len(drawn) == 2 * len(ax.get_yticklabels())
    for place, swing in enumerate(drawn):
        low, high = bars[2 * place], bars[2 * place + 1]
        for bar, net in ((low, swing.net_low), (high, swing.net_high)):
            assert math.isclose(bar.get_x() + bar.get_width(), net, rel_tol=1e-9, abs_tol=1e-6)
        assert low.get_hatch() != high.get_hatch()  # told apart without colour
    widths = [abs(a.get_width() - b.get_width()) for a, b in zip(bars[::2], bars[1::2])]
    assert widths[0] == max(widths)
    assert ax.get_xlabel() == "gain less price [EUR a year]"
    least, most = ax.get_xlim()
    assert least < min(0, *(swing.net_low for swing in drawn)) and most > drawn[0].net_per_year
    # Zero is marked: on its left a step does not pay.
    assert any(list(each.get_xdata()) == [0, 0] for each in ax.lines)


def test_words_of_the_tornado_say_what_turns_the_verdict(swings):
    words = tornado_words(swings)
    assert len(words.split()) <= 60
    turning = sum(swing.turns for swing in swings)
    if turning:
        assert f"{turning} assumptions turn the verdict" in words
    else:
        assert "No assumption turns the verdict" in words


def test_the_tornado_can_be_read_from_the_last_row(swings):
    import matplotlib.pyplot as plt

    _, ax = plt.subplots(figsize=(16, 9))
    assert plot_tornado(swings, ax=ax) is ax
    sizes = [each.get_fontsize() for each in
             (*ax.texts, *ax.get_xticklabels(), *ax.get_yticklabels())]
    assert min(sizes) >= 18


def test_the_panel_shows_how_long_control_is_down():
    plant = {one.variant: one for one in compare_variants(load_plant(), "fixed")}
    for air, ending in ((False, ""), (True, " air")):
        for version in ("V0", "V1a", "V1b"):
            down = plant[f"{version}{ending}"].down_min_per_year["control kept"]
            for shown in (worth_svg(air), worth_alt_text(air)):
                assert f"control down {down:.0f} min" in shown


def test_the_tornado_says_which_end_is_which(swings):
    words = [each.get_text() for each in plot_tornado(swings).get_legend().get_texts()]
    assert words == ["its smallest usual value", "its largest usual value"]
