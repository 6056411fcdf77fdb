"""Pictures of matplotlib in the colours of the page: no colour of their own, words beside them."""

import base64
import re
import xml.etree.ElementTree as ET

import matplotlib
import pytest

from labkit.evidence.example_year import example_year
from labkit.evidence.log_cleaning import clean_log
from labkit.plant.plant import load_plant
from lessons.panels.drawn import drawn, themed_svg
from lessons.pictures.look import PAGE
from lessons.pictures.page import axes, inks
from lessons.pictures.sleepers import plot_sleepers, sleepers
from lessons.pictures.year_strip import plot_year, year_words

matplotlib.use("agg")


def _year():
    plant = load_plant()
    log = clean_log(example_year(), plant)
    return lambda ax: plot_year(log, plant, ax), year_words(log, plant)


def _sleepers():
    rows = sleepers([4380, 8760], years=200)
    return lambda ax: plot_sleepers(rows, ax), "Differences from the exact model."


@pytest.fixture(scope="module", params=[_year, _sleepers])
def picture(request):
    return request.param()


def test_every_colour_is_one_that_the_theme_sets(picture):
    svg = themed_svg(*picture)
    assert not re.search(r"#[0-9a-f]{3,8}\b(?!\))", re.sub(r"url\(#\w+\)|href=\"#\w+\"", "", svg))
    used = set(re.findall(r"var\(--lk-([\w-]+)\)", svg))
    assert {"paper", "ink"} < used <= set(PAGE)
    assert "<style" not in svg and "<script" not in svg


def test_the_picture_is_named_and_takes_the_width_that_it_gets(picture):
    draw, words = picture
    root = ET.fromstring(themed_svg(draw, words))
    assert root.get("role") == "img" and root.get("aria-label") == words
    assert root.get("viewBox") and root.get("width") is None and root.get("height") is None


def test_the_words_are_shown_and_stand_for_it_where_there_are_no_controls(picture):
    draw, words = picture
    shown = drawn(draw, words)
    data, _ = shown._repr_mimebundle_()
    assert " ".join(data["text/plain"].split()) == " ".join(words.split())
    assert base64.b64decode(data["image/png"]).startswith(b"\x89PNG")
    assert "text/html" not in data and words.split(".")[0] in shown.value
    shown.close()


def test_two_pictures_of_one_page_share_no_part():
    def draw(ax):
        ink = inks(axes(ax, "Bar", "x", "y"))
        ax.barh(0, 1, hatch="//", color=ink["paper"], edgecolor=ink["ink"])
        return ax

    names = [set(re.findall(r"url\(#(\w+)\)", themed_svg(draw, words))) for words in ("a", "b")]
    assert names[0] and not names[0] & names[1]


def test_a_colour_of_its_own_is_refused():
    def draw(ax):
        axes(ax, "Line", "x", "y").plot([0, 1], color="#123456")
        return ax

    with pytest.raises(ValueError, match="draw must use the colours of the page, got #123456"):
        themed_svg(draw, "A line.")
