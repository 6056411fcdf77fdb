"""The panel of what a step is worth, and the tornado picture of a verdict."""

import itertools
import logging
import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from labkit.plant.plant import load_plant
from labkit.plant.sensitivity import sensitivity
from labkit.plant.variants import compare_variants
from lessons.panels.worth_panel import SPREADS, worth_panel
from lessons.pictures.loss_and_price import worth_alt_text, worth_svg
from lessons.pictures.svg import alone, text_width
from lessons.pictures.tornado import MOST_BARS, tornado_picture, tornado_svg, tornado_words

CORNERS = list(itertools.product((False, True), SPREADS.values()))


@pytest.fixture(scope="module", params=["", " air"])
def swings(request):
    ending = request.param
    return sensitivity(load_plant(), f"V1a{ending}", f"V0{ending}", "fixed")


@pytest.mark.parametrize(("air", "durations"), CORNERS)
def test_bars_are_the_losses_and_prices_of_the_plant(air, durations):
    svg = ET.fromstring(alone(worth_svg(air, durations)))
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
    with pytest.raises(ValueError, match="durations must be .*, got 'long'"):
        worth_svg(False, "long")
    for function in (tornado_svg, tornado_words):
        with pytest.raises(ValueError, match="swings must hold at least one swing, got none"):
            function([])


def bars_of(swings, **how):
    """Return (left, right) of the filled and of the outlined bars in money, and all words."""
    tree = ET.fromstring(tornado_svg(swings, **how))
    nodes = [node for node in tree.iter() if node.tag.endswith("rect")]
    ends = {kind: [(float(node.get("x")), float(node.get("x")) + float(node.get("width")))
                   for node in nodes if node.get("class") == kind][1:] for kind in ("now", "card")}
    return ends, [node.text for node in tree.iter() if node.tag.endswith("text")]


def test_bars_of_the_tornado_reach_to_the_limits(swings):
    ends, words = bars_of(swings)
    drawn = swings[:MOST_BARS]
    assert len(ends["now"]) == len(ends["card"]) == len(drawn)
    nets = [0.0, drawn[0].net_per_year,
            *(net for swing in drawn for net in (swing.net_low, swing.net_high))]
    spread = max(nets) - min(nets)

    def x(net):
        # 634 units from 250 hold all bars, and 16 % of their spread beyond each end.
        return 250 + 634 * ((net - min(nets)) / spread + 0.16) / 1.32

    here = x(drawn[0].net_per_year)
    for kind, name in (("now", "net_low"), ("card", "net_high")):
        wanted = [sorted((x(getattr(swing, name)), here)) for swing in drawn]
        for (left, right), (low, high) in zip(ends[kind], wanted, strict=True):
            assert math.isclose(left, low, abs_tol=0.06) and math.isclose(right, high, abs_tol=0.11)
    widths = [max(a[1], b[1]) - min(a[0], b[0]) for a, b in zip(ends["now"], ends["card"])]
    assert widths[0] == max(widths)
    # Zero is marked: on its left a step does not pay.
    assert {"does not pay", "pays", "gain less price [EUR a year]"} <= {*words}


def test_the_tornado_shows_as_many_bars_as_asked(swings):
    assert len(bars_of(swings, most=3)[0]["now"]) == 3


def test_the_tornado_has_the_currency_of_its_plant():
    swings = sensitivity(replace(load_plant(), currency="GBP"), "V1a", "V0", "fixed")
    assert "gain less price [GBP a year]" in bars_of(swings)[1]
    assert "Bars of gain less price, GBP a year" in tornado_picture(swings).words


def test_words_of_the_tornado_say_what_turns_the_verdict(swings):
    words = tornado_words(swings)
    assert len(words.split()) <= 60
    turning = sum(swing.turns for swing in swings)
    if turning:
        assert f"{turning} assumptions turn the verdict" in words
    else:
        assert "No assumption turns the verdict" in words


def test_no_name_runs_into_the_bars(swings):
    tree = ET.fromstring(tornado_svg(swings))
    for node in tree.iter():
        if node.tag.endswith("text") and node.get("text-anchor") == "end":
            width = text_width(node.text, 15, bold=node.get("class") == "b")
            assert float(node.get("x")) - width >= 0, node.text


def test_no_line_runs_through_a_value_of_the_tornado(swings):
    drawn = [node.get("class") for node in ET.fromstring(tornado_svg(swings)).iter()]
    values = [place for place, kind in enumerate(drawn) if kind == "over"]
    assert len(values) == 2 * min(MOST_BARS, len(swings))
    assert max(drawn.index("event"), drawn.index("limit")) < values[0]


def test_the_panel_shows_how_long_control_is_down():
    plant = {one.variant: one for one in compare_variants(load_plant(), "fixed")}
    for air, ending in ((False, ""), (True, " air")):
        for version in ("V0", "V1a", "V1b"):
            down = plant[f"{version}{ending}"].down_min_per_year["control kept"]
            for shown in (worth_svg(air), worth_alt_text(air)):
                assert f"control down {down:.0f} min" in shown


def test_the_tornado_says_which_end_is_which_and_what_turns(swings):
    words = bars_of(swings)[1]
    assert {"its smallest usual value", "its largest usual value"} <= {*words}
    tree = ET.fromstring(tornado_svg(swings))
    bold = [node.text for node in tree.iter() if node.tag.endswith("text")
            and node.get("class") == "b" and node.get("x") == "240"]
    assert len(bold) == sum(min(swing.net_per_year, swing.net_low, swing.net_high) <= 0 <
                            max(swing.net_per_year, swing.net_low, swing.net_high)
                            for swing in swings[:MOST_BARS])


def test_a_notebook_shows_the_tornado_and_its_words(swings):
    picture = tornado_picture(swings)
    assert repr(picture).replace("\n", " ") == tornado_words(swings)
    assert alone(tornado_svg(swings)) in picture._repr_html_()
    assert max(map(len, repr(picture).splitlines())) <= 88
